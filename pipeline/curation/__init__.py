"""Put contributed sheets into one comparable data set."""
