"""The pages of the bench, one module each; `register` lists them."""
