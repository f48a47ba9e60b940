"""The pipeline: from dyno sheets to one comparable data set and the features of its builds."""
