"""What a battery is: its label, and the published relations of the two chemistries with their sources."""
