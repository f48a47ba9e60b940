"""Builds to predict: YAML files, templates, tables and parts lists."""
