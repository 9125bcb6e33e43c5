"""Room 4, how it is measured: probing plan, serial instruments, capture, guided session."""
