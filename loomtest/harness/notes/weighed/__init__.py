"""The second reading of a page: each way to cut a line, and each part a line can play in a block, has a cost.

The cheapest reading of a whole block is taken. It is made without the grammar of the first reading and fails
in other places: what both read is sure, and where they differ is a question (`agree.py`).
"""
