"""What a dyno sheet is: its fields, its findings and the tables sheets become.

Nothing here knows how a sheet is read or what is learned from it.
"""
