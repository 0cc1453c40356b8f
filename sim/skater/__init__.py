"""The person on the steel: masses, stiffness, and how they move."""
