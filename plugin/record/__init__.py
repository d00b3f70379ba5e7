"""The field record: what is in it, how it is made, written to and read."""
