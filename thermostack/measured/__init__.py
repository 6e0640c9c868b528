"""From raw logs to steady readings. Knows nothing of stacks."""
