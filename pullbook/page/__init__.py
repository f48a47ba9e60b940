"""The page in the browser: a server on this machine alone, with its guards and its views."""
