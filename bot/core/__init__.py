"""The diagnosis, the talk and the record, pure: no clock, no files, no network."""
