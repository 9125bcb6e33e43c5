"""Room 2, what was measured: values and units, the run folder, instrument specifications."""
