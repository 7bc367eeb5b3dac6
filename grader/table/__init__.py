"""The sorting table: a page in the browser over the same functions and the same ledger as the commands."""
