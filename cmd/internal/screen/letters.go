package screen

import "strings"

// shapes are the letters that the large words need, five columns by five lines.
var shapes = map[rune][5]string{
	'A': {" ### ", "#   #", "#####", "#   #", "#   #"},
	'B': {"#### ", "#   #", "#### ", "#   #", "#### "},
	'C': {" ####", "#    ", "#    ", "#    ", " ####"},
	'D': {"#### ", "#   #", "#   #", "#   #", "#### "},
	'E': {"#####", "#    ", "#### ", "#    ", "#####"},
	'G': {" ####", "#    ", "#  ##", "#   #", " ####"},
	'H': {"#   #", "#   #", "#####", "#   #", "#   #"},
	'I': {" ### ", "  #  ", "  #  ", "  #  ", " ### "},
	'K': {"#   #", "#  # ", "###  ", "#  # ", "#   #"},
	'L': {"#    ", "#    ", "#    ", "#    ", "#####"},
	'M': {"#   #", "## ##", "# # #", "#   #", "#   #"},
	'N': {"#   #", "##  #", "# # #", "#  ##", "#   #"},
	'O': {" ### ", "#   #", "#   #", "#   #", " ### "},
	'R': {"#### ", "#   #", "#### ", "#  # ", "#   #"},
	'S': {" ####", "#    ", " ### ", "    #", "#### "},
	'T': {"#####", "  #  ", "  #  ", "  #  ", "  #  "},
	'U': {"#   #", "#   #", "#   #", "#   #", " ### "},
	'W': {"#   #", "#   #", "# # #", "## ##", "#   #"},
	' ': {"     ", "     ", "     ", "     ", "     "},
}

// letters writes a word large. A letter without a shape is left blank.
func letters(word string) (rows [5]string) {
	for i := range rows {
		var parts []string
		for _, r := range word {
			s, ok := shapes[r]
			if !ok {
				s = shapes[' ']
			}
			parts = append(parts, s[i])
		}
		rows[i] = strings.Join(parts, "  ")
	}
	return rows
}
