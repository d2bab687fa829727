"""What was spent, what each policy costs and which age is best."""
