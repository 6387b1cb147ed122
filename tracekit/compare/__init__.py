"""Before against after."""
