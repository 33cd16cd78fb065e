"""Over time: what the train does in minutes, days and months."""
