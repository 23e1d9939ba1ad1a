"""The figures of the report, one file each."""
