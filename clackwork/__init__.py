"""clackwork: bench readings of a hydraulic ram pump, carried to every site."""
