"""The low-order energy balance that control uses, and how it is had: from the description (day zero) or from
records (fit)."""
