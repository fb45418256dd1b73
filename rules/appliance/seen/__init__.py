"""What is seen of machines in use, by the part of the appliance it is seen on."""
