package status

import _ "embed" // the schema is published with the program

//go:embed schema/status-v1.schema.json
var schema string

// Schema returns the JSON Schema (2020-12) of status.json, as published.
func Schema() string { return schema }
