"""The tests; a package, so that what several of them share is imported by its name: `from tests.plants.plant_cases
import …`."""
