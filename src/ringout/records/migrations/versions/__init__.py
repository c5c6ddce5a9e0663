"""The steps, oldest first; a step that was released is never changed."""
