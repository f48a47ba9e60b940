"""A build as a question: YAML files, templates, tables and parts lists."""
