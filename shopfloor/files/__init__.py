"""Files that people bring, read under limits in a process of their own."""
