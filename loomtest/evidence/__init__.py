"""Room 5, what is shown and kept: plots, report page, evidence bags, history."""
