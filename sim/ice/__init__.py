"""The ice and what it does to the steel: contact patch, drag, sideways resistance."""
