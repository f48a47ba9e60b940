"""From dyno sheets to one comparable data set, and to the features of its builds."""
