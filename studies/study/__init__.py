"""Many cases: plan, keys, runner, engines, store, table."""
