"""The fair test: error and coverage on sheets that were held out."""
