"""The rehearsal of the rule by which a sheet advises: made-up skaters whose truth is known."""
