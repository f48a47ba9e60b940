"""Many small things at once: threads, processes, a cluster."""
