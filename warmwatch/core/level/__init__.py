"""The level job: check conditions, the drip, the fluid ledger."""
