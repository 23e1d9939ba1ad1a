"""The chapters of the report, one file each; `document` puts them in order."""
