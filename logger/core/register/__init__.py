"""What changes in use: test sieves, checks of balance and pressure, as events folded into a state."""
