"""Who may ask the page and what may come in: each guard in a small module of its own."""
