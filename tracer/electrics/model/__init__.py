"""A circuit in one key state as a network: what every link, source and load of it becomes, and what is taken to differ."""
