"""The plain twin of the firmware: integers only, the same bits on every machine."""
