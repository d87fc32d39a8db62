"""Questions about the doming station: budget, many variants."""
