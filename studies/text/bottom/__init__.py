"""What is printed of one bottom and its metal."""
