"""Parallel work: threads, processes, a cluster."""
