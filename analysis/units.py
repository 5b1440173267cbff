"""What does a unit that the trade writes amount to in the kept unit?"""
