package broker

// SetCost makes new hashes cheap.
func (l *Logins) SetCost(cost int) { l.cost = cost }
