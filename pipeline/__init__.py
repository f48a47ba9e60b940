"""From dyno sheets to one comparable data set: read, check, correct, anonymise, curate, features."""
