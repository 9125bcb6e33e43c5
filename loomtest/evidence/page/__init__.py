"""The report page and the bench sheet."""
