package bank

// Clone is a bank of its own that knows the same; nobody is shown what it hears.
func (b *Bank) Clone() *Bank {
	c := *b
	c.trace = nil
	return &c
}
