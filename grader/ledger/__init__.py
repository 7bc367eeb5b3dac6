"""The memory of the tool: one file of facts that are only ever added, and tables that are computed from them."""
