"""What was typed in, a doubt or nothing out: odometers, identifiers, a near unit."""
