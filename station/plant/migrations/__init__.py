"""The steps from one form of the plant's tables to the next, carried out by `station.plant.upgrade`."""
