"""What a person asks for, in trade units: one folder per concern. Recipes here are invented for demonstration."""
