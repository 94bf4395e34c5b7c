"""The questions that a coach asks of the shots: for whom, how sure, how much."""
