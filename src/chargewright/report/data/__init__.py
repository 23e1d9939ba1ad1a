"""The numbers of the report as tables, one file for each subject; page, print and CSV show the same ones."""
