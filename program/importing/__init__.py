"""Reading the files people really have: parse and judge, never write."""
