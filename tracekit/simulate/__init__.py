"""A physical station with known truth; shares no code with the estimators."""
