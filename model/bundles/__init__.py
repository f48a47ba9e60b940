"""Bundles as strangers' files: what they may hold, checked before any of it is used."""
