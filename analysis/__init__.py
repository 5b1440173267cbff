"""Which cellar practices shift haze and oxidation in a brewery's finished packs?"""
