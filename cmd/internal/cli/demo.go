package cli

import "errors"

// Rehearse points the command that was asked to read the demo at dir; it reports whether
// one was.
func (c *CLI) Rehearse(dir string) bool {
	asked := false
	for _, w := range []*Where{&c.Ready.Where, &c.Grid.Where, &c.Path.Where, &c.Report.Where, &c.Why.Where, &c.Screen.Where, &c.Mark.Where, &c.Until.Where, &c.Pin.Where, &c.Prepare.Where} {
		if w.Demo {
			w.RunDir, asked = dir, true
		}
	}
	return asked
}

// oneStation refuses a question about two stations.
func (c *CLI) oneStation() error {
	for _, w := range []*Where{&c.Ready.Where, &c.Grid.Where, &c.Path.Where, &c.Report.Where, &c.Why.Where, &c.Screen.Where, &c.Mark.Where, &c.Until.Where, &c.Pin.Where, &c.Prepare.Where, &c.Follow.Where} {
		if w.Demo && w.RunDir != "" {
			return errors.New("--demo and --run-dir: choose one")
		}
	}
	if c.Follow.Demo || c.Hear.Demo || c.Resume.Demo {
		return errors.New("--demo: nothing is done to a simulation")
	}
	return nil
}
