"""The best bottom within limits: search on true slopes, check, trade-off; designs ranked."""
