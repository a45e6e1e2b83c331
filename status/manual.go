package status

// manualPage is where the page's server has the manual's page on what is shown.
const manualPage = "/manual/8-page#"

// manualParts are stable names of what is shown, and the paragraphs about them. The lower
// ones are kinds of references.
var manualParts = map[string]string{
	"answer": "the-answer", "next": "the-next-step", "gone": "no-contact", "simulation": "simulation",
	"level": "how-far-off-the-clock-is", "good-for": "good-for", "utc": "utc", "ring": "the-period", "place": "place", "modes": "modes",
	"satellites": "satellites", "chip": "hardware-clock", "air": "the-air",
	"night": "the-night-so-far", "sky": "the-sky", "who": "who-tells-the-time", "aloud": "place-to-read-aloud",
	"budget": "the-worst-case", "rate": "oscillator", "confirmed": "confirmed", "ancestry": "where-utc-comes-from", "steering": "steering",
	"devices": "devices", "events": "what-happened", "problems": "what-noonmark-cannot-do-now", "byhand": "by-hand",

	"gnss": "satellites", "pps": "pulse", "rtc": "hardware-clock", "network": "network", "operator": "the-air",
}

// Manual is the address of the paragraph about a part of what is shown, or about a kind
// of reference, on the server of the page; "" where there is none.
func Manual(name string) string {
	part := manualParts[name]
	if part == "" {
		return ""
	}
	return manualPage + part
}

// ManualNames are the names that Manual knows.
func ManualNames() []string {
	names := make([]string, 0, len(manualParts))
	for n := range manualParts {
		names = append(names, n)
	}
	return names
}
