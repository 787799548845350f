//go:build js && wasm

// Command assesswasm is the engine in the browser: the same code that judges on
// the server, built with GOOS=js GOARCH=wasm. It leaves one object behind,
//
//	solewright.judge(question) → answer
//	solewright.tilt(question)  → answer
//
// whose functions take and return JSON text as assess.JudgeJSON and
// assess.TiltJSON do, and then waits to be called.
package main

import (
	"syscall/js"

	"solewright/assess"
)

func main() {
	js.Global().Set("solewright", js.ValueOf(map[string]any{
		"judge": answer(assess.JudgeJSON),
		"tilt":  answer(assess.TiltJSON),
	}))
	select {}
}

// answer makes a function of JavaScript of one that answers JSON with JSON. What
// is called with anything but one string answers as to an empty question.
func answer(to func([]byte) []byte) js.Func {
	return js.FuncOf(func(_ js.Value, args []js.Value) any {
		var question string
		if len(args) > 0 && args[0].Type() == js.TypeString {
			question = args[0].String()
		}
		return string(to([]byte(question)))
	})
}
