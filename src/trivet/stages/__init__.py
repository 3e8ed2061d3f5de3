"""The spine: one verb a file, each a function from frozen records to one new record."""
