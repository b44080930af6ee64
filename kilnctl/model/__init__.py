"""The low-order energy balance that control uses, derived from the description (day zero) or fitted to records."""
