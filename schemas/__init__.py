"""The data model: fields of a dyno sheet, findings, curated tables and the shape of an answer.

Nothing here depends on how a sheet is read or on the model trained from it.
"""
