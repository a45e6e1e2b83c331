package hear

// heard is a time-signal station.
type heard struct {
	Name    string  `json:"name"`
	OffsetS float64 `json:"offset_s"`
	BoundS  float64 `json:"bound_s"`
}
