"""One line a unit: each is scanned, judged and kept, and nothing of it is lost when the power goes."""
