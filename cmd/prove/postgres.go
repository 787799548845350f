package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// cluster is a throw-away PostgreSQL as deploy/pg.sh starts it, durable.
type cluster struct {
	l         *lab
	dir, bin  string
	url       string
	version   string
	ownerUser *syscall.Credential // who it runs as, nil where it is us
}

// startCluster starts a PostgreSQL with fsync, full_page_writes and
// synchronous_commit on, in a folder of the scratch folder.
func (l *lab) startCluster(folder string) (*cluster, error) {
	c := &cluster{l: l, dir: l.path(folder)}
	cmd := exec.CommandContext(l.ctx, "sh", "deploy/pg.sh", "start", c.dir)
	cmd.Env = append(os.Environ(), "SOLEWRIGHT_PG_DURABLE=1")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("starting PostgreSQL: %w", err)
	}
	c.url = strings.TrimSpace(string(out))
	bin, err := os.ReadFile(filepath.Join(c.dir, "bin"))
	if err != nil {
		return nil, err
	}
	c.bin = strings.TrimSpace(string(bin))
	info, err := os.Stat(filepath.Join(c.dir, "data"))
	if err != nil {
		return nil, err
	}
	if owner, ok := info.Sys().(*syscall.Stat_t); ok && int(owner.Uid) != os.Getuid() {
		c.ownerUser = &syscall.Credential{Uid: owner.Uid, Gid: owner.Gid}
	}
	if c.version, err = c.psql("SHOW server_version"); err != nil {
		c.stop()
		return nil, err
	}
	return c, nil
}

// stop ends the cluster and removes its data.
func (c *cluster) stop() {
	cmd := exec.Command("sh", "deploy/pg.sh", "stop", c.dir)
	cmd.Stderr = os.Stderr
	_ = cmd.Run() // the scratch folder goes in any case
}

// killAll ends every process of the cluster by SIGKILL and waits until none is
// left.
func (c *cluster) killAll() error {
	pids, err := c.processes()
	if err != nil {
		return err
	}
	for _, pid := range pids {
		if err := syscall.Kill(pid, syscall.SIGKILL); err != nil && !errors.Is(err, syscall.ESRCH) {
			return err
		}
	}
	ctx, cancel := context.WithTimeout(c.l.ctx, readyWithin)
	defer cancel()
	return poll(ctx, func() bool {
		for _, pid := range pids {
			_, _ = syscall.Wait4(pid, nil, syscall.WNOHANG, nil)
			if syscall.Kill(pid, 0) == nil {
				return false
			}
		}
		return true
	})
}

// processes returns the postmaster and its children, the postmaster first so
// that it can't start others.
func (c *cluster) processes() ([]int, error) {
	file, err := os.ReadFile(filepath.Join(c.dir, "data", "postmaster.pid"))
	if err != nil {
		return nil, err
	}
	line, _, _ := strings.Cut(string(file), "\n")
	postmaster, err := strconv.Atoi(line)
	if err != nil {
		return nil, err
	}
	pids := []int{postmaster}
	stats, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		return nil, err
	}
	for _, name := range stats {
		text, err := os.ReadFile(name)
		if err != nil {
			continue // ended meanwhile
		}
		// pid (name) state parent …, and the name may hold anything.
		rest := strings.Fields(string(text[bytes.LastIndexByte(text, ')')+1:]))
		if len(rest) > 1 && rest[1] == line {
			pid, err := strconv.Atoi(filepath.Base(filepath.Dir(name)))
			if err != nil {
				return nil, err
			}
			pids = append(pids, pid)
		}
	}
	return pids, nil
}

// clockTick is a tick of the times in /proc, USER_HZ of Linux.
const clockTick = time.Second / 100

// cpu returns the processor time of all processes of the cluster, those that
// have ended among them.
func (c *cluster) cpu() (time.Duration, error) {
	pids, err := c.processes()
	if err != nil {
		return 0, err
	}
	var ticks int64
	for i, pid := range pids {
		text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		if err != nil {
			continue // ended meanwhile, and counted by the postmaster
		}
		n, err := ticksOf(text, i == 0)
		if err != nil {
			return 0, err
		}
		ticks += n
	}
	return time.Duration(ticks) * clockTick, nil
}

// ticksOf returns the ticks of a process by its stat, with those of children
// that it waited for where they count.
// Source: proc(5), utime, stime, cutime and cstime are fields 14 to 17.
func ticksOf(stat []byte, children bool) (int64, error) {
	rest := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:])) // from field 3
	last := 15
	if children {
		last = 17
	}
	if len(rest) < last-2 {
		return 0, fmt.Errorf("/proc says %q of a process", stat)
	}
	var sum int64
	for _, f := range rest[14-3 : last-2] {
		n, err := strconv.ParseInt(f, 10, 64)
		if err != nil {
			return 0, err
		}
		sum += n
	}
	return sum, nil
}

// restart starts the cluster again with the options it had, and returns how
// long it took to recover.
func (c *cluster) restart() (time.Duration, error) {
	begin := time.Now()
	cmd := exec.CommandContext(c.l.ctx, filepath.Join(c.bin, "pg_ctl"), "-D", filepath.Join(c.dir, "data"),
		"-l", filepath.Join(c.dir, "server.log"), "-w", "-t", "60", "restart")
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: c.ownerUser}
	cmd.Dir = "/"
	if err := cmd.Run(); err != nil {
		tail, _ := os.ReadFile(filepath.Join(c.dir, "server.log"))
		return 0, fmt.Errorf("PostgreSQL does not start again: %w: %s", err, tail[max(0, len(tail)-2000):])
	}
	return time.Since(begin), nil
}

// psql runs statements, one a transaction, and returns the unaligned rows.
func (c *cluster) psql(statements ...string) (string, error) {
	args := []string{"-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", c.url}
	for _, s := range statements {
		args = append(args, "-c", s)
	}
	out, err := exec.CommandContext(c.l.ctx, filepath.Join(c.bin, "psql"), args...).CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("psql: %w: %s", err, out)
	}
	return strings.TrimSpace(string(out)), nil
}

// setChildSubreaper is PR_SET_CHILD_SUBREAPER of prctl(2).
const setChildSubreaper = 36

// adoptOrphans makes this process the parent of what its children leave behind:
// a postmaster that was killed is then reaped here, and not taken for one that
// still runs.
func adoptOrphans() error {
	if _, _, errno := syscall.RawSyscall(syscall.SYS_PRCTL, setChildSubreaper, 1, 0); errno != 0 {
		return fmt.Errorf("prctl: %w", errno)
	}
	return nil
}

// another makes one more database in the cluster and returns its address.
func (c *cluster) another(name string) (string, error) {
	if _, err := c.psql("CREATE DATABASE " + name); err != nil {
		return "", err
	}
	return strings.Replace(c.url, "/postgres?", "/"+name+"?", 1), nil
}
