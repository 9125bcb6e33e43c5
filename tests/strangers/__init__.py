"""Files from strangers and spreadsheets: what they may mean, how large they may be, what they may not do."""
