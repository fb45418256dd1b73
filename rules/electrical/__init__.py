"""The physics of an electric range, with no knowledge of faults: readings, limits, verdicts and the circuit solver.

====================  ================================================================================
``units``             a technician's reading, as written, to a number in the wanted unit
``verdict``           the judgement every function here returns: value, band, word, meaning, source
``supply``            leg, line and neutral volts, and what they say together
``elements``          ohms and watts of heating elements; a wire that touches its sheath
``sensors``           oven sensor curves, their inverse, and the oven error of added resistance
``sensor_reading``    verdicts on the oven sensor
``thermistor``        NTC sensors, by beta or by Steinhart and Hart
``thermocouple``      type K millivolts with the cold junction
``heating``           duty of an infinite switch; preheat time
``ovenlog``           average and swing of a logged oven
``conductors``        volts lost in copper; heat in a joint
``load``              demand, branch circuit and breaker
``leakage``           current to the frame, insulation, ground-fault breakers
``circuit``           the nodal solver
====================  ================================================================================
"""
