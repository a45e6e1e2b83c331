package exit

// Meaning is what an exit status of a command means.
type Meaning struct {
	Code  int
	Means string
}

// Misunderstood is what Misuse means, the same for every command.
const Misunderstood = "The command line, the settings or a file named could not be understood; what is wrong is on standard error."

// Table is every exit status of each command besides Misuse. The manual is made of it, and
// a test runs the commands against it.
var Table = map[string][]Meaning{
	"run":        {{OK, "It was ended."}, {No, "It could not begin or could not go on; the reason is on standard error."}},
	"demo":       {{OK, "It was played to its end, or ended."}, {No, "It could not be played."}},
	"replay":     {{OK, "All was read."}},
	"ready":      {{OK, "The clock is within the tolerance of every mode asked for."}, {No, "It is not: do not key up."}, {Cannot, "Nobody can tell: no fresh status is there, or that of a simulation."}},
	"grid":       {{OK, "The place was printed."}, {No, "The track holds no dated fix, or is damaged."}, {Cannot, "There is no fix, or no fresh status."}},
	"path":       {{OK, "All was answered."}, {No, "Some lines of the list were no places; the others were answered."}, {Cannot, "There is no fix to go from, or no fresh status."}},
	"report":     {{OK, "The report was printed."}, {No, "It does not fit, or the template cannot be filled in."}, {Cannot, "There is nothing to report: no fix, or no fresh status."}},
	"why":        {{OK, "It was explained."}, {Cannot, "No fresh status is there."}},
	"screen":     {{OK, "It was ended."}, {No, "The terminal could not be used."}},
	"mark":       {{OK, "The clock was compared, and the service got the mark, unless that was not wanted."}, {No, "Nothing was marked: too few taps, or they do not fit together, or the service took nothing."}},
	"hear":       {{OK, "A crowd or a time signal was heard."}, {No, "Nothing was heard that tells the time; the reason is printed."}},
	"until":      {{OK, "What was asked for is so."}, {No, "The limit is up."}},
	"prepare":    {{OK, "All is learned."}, {No, "Something is missing or under way."}},
	"preflight":  {{OK, "Nothing is in the way."}, {No, "Something is; its remedy is printed."}},
	"resume":     {{OK, "The service sets the clock again."}, {No, "There is nothing to take back, or no service is running; the reason is on standard error."}},
	"pin":        {{OK, "The number was printed."}, {Cannot, "No service speaks here, or you may not see the number."}},
	"follow":     {{OK, "It was ended, or nothing is in the settings for it to do."}},
	"ports":      {{OK, "They were listed, or one was listened to."}, {No, "They could not be listed or listened to, or the question was not answered."}},
	"version":    {{OK, "It was printed."}},
	"completion": {{OK, "It was printed."}},
}
