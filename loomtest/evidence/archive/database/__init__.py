"""The database that an archive's index stands in: where it is, its tables, what of a bag goes into them."""
