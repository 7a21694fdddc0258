"""How far and in which direction mites are carried: location kernels, bearings, the wind climate."""
