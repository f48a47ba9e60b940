"""What the command line and the page both do: questions, training, packs, the key, faults."""
