"""The review page: gets values, returns bytes, opens nothing but what is packed with it."""
