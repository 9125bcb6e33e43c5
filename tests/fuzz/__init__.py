"""Every reader fed with whatever bytes there are: see DEVELOPERS.md and docs/reliability.md."""
