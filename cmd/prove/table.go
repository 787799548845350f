package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"
)

// table is what a proof found, as Markdown.
type table struct {
	title string
	notes []string // what was done and what wasn't, before the rows
	head  []string
	rows  [][]string
	after string // what follows from the rows
	load  string // of the machine as the proof began
}

func newTable(title string, head ...string) *table {
	return &table{title: title, head: head, load: load()}
}

func (t *table) note(format string, args ...any) {
	t.notes = append(t.notes, fmt.Sprintf(format, args...))
}

func (t *table) row(cells ...any) {
	text := make([]string, len(cells))
	for i, c := range cells {
		text[i] = fmt.Sprint(c)
	}
	t.rows = append(t.rows, text)
}

// write writes the table, dated, as NAME.md.
func (l *lab) write(name string, t *table) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# %s\n\n", t.title)
	fmt.Fprintf(&b, "- date: %s\n- command: `%s`\n- machine: %s\n", time.Now().UTC().Format("2006-01-02 15:04 MST"), l.command, l.machine())
	fmt.Fprintf(&b, "- load over 1, 5 and 15 minutes: %s as it began, %s as it ended\n", t.load, load())
	for _, n := range t.notes {
		fmt.Fprintf(&b, "- %s\n", n)
	}
	fmt.Fprintf(&b, "\n| %s |\n|%s\n", strings.Join(t.head, " | "), strings.Repeat(" --- |", len(t.head)))
	for _, r := range t.rows {
		fmt.Fprintf(&b, "| %s |\n", strings.Join(r, " | "))
	}
	if t.after != "" {
		fmt.Fprintf(&b, "\n%s", t.after)
	}
	if err := os.MkdirAll(l.out, 0o755); err != nil {
		return err
	}
	fmt.Print(b.String(), "\n")
	return os.WriteFile(filepath.Join(l.out, name+".md"), b.Bytes(), 0o644)
}

// load returns the load averages of the machine.
func load() string {
	text, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "unknown"
	}
	return strings.Join(strings.Fields(string(text))[:3], " ")
}

// machine says what the proof ran on.
func (l *lab) machine() string {
	say := []string{field("/proc/cpuinfo", "model name"), fmt.Sprintf("%d processors", runtime.NumCPU())}
	say = append(say, field("/proc/meminfo", "MemTotal")+" memory", runtime.Version())
	if out, err := exec.CommandContext(l.ctx, "uname", "-sr").Output(); err == nil {
		say = append(say, strings.TrimSpace(string(out)))
	}
	var fs syscall.Statfs_t
	if err := syscall.Statfs(os.TempDir(), &fs); err == nil {
		say = append(say, fmt.Sprintf("file system of type %#x", fs.Type))
	}
	return strings.Join(say, ", ")
}

// field returns the value of the first line of a file of /proc that has a name.
func field(file, name string) string {
	text, err := os.ReadFile(file)
	if err != nil {
		return "unknown"
	}
	for line := range strings.Lines(string(text)) {
		if key, value, ok := strings.Cut(line, ":"); ok && strings.TrimSpace(key) == name {
			return strings.TrimSpace(value)
		}
	}
	return "unknown"
}

// seconds writes a time.
func seconds(d time.Duration) string { return fmt.Sprintf("%.2f", d.Seconds()) }

// perSecond writes a rate.
func perSecond(n int, d time.Duration) string { return fmt.Sprintf("%.0f", float64(n)/d.Seconds()) }
