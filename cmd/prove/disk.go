package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"solewright/reports/sim"
)

// How many readings are sent at most until a disk is full, how many more are
// sent once it is, and how long a server may take to go on once there is room.
const (
	diskReadings = 60_000
	diskMore     = 20
	roomWithin   = 60 * time.Second
)

// small is a disk in memory, of so many bytes.
type small struct{ dir string }

// mountSmall mounts a disk of so many MiB. It takes root.
func (l *lab) mountSmall(name string, mib int) (*small, error) {
	d := &small{l.path(name)}
	if err := os.Mkdir(d.dir, 0o755); err != nil {
		return nil, err
	}
	if err := syscall.Mount("tmpfs", d.dir, "tmpfs", 0, fmt.Sprintf("size=%dm,mode=755", mib)); err != nil {
		return nil, fmt.Errorf("mounting a disk of %d MiB takes root: %w", mib, err)
	}
	return d, nil
}

// grow makes the disk larger, as freeing space does.
func (d *small) grow(mib int) error {
	return syscall.Mount("tmpfs", d.dir, "tmpfs", syscall.MS_REMOUNT, fmt.Sprintf("size=%dm", mib))
}

// stuff takes what is left of the disk: a database that was refused a page may
// find room for the next in what it has.
func (d *small) stuff() error {
	ballast, err := os.Create(filepath.Join(d.dir, "ballast"))
	if err != nil {
		return err
	}
	defer ballast.Close()
	chunk := make([]byte, 4096)
	for err == nil {
		_, err = ballast.Write(chunk)
	}
	if errors.Is(err, syscall.ENOSPC) {
		err = nil
	}
	return err
}

func (d *small) unmount() { _ = syscall.Unmount(d.dir, syscall.MNT_DETACH) }

// filling is one kind of full disk.
type filling struct {
	name string
	db   string
	disk *small
	// restart starts a database that the full disk ended, and returns whether it
	// had to; nil where the database is a file.
	restart func() (bool, error)
}

func proveDisk(l *lab) error {
	t := newTable("A full disk loses nothing that was acknowledged, and says so",
		"full is the disk of", "acknowledged before", "of them the same after", "refused while full", "what the refusal says", "what /readyz says",
		"database had to be started again", "s until ready once there is room", "refused ones sent again", "verify exits 0")
	t.note("PUT /api/v1/inspections/{id} until one is refused, a file takes what is left of the disk, %d more, then the disk is made larger and nothing else is done to the server; every acknowledged reading is read back, byte for byte as it was acknowledged but for the flag pair-contradicts, and every refused one is sent again", diskMore)
	t.note("the disks are tmpfs: what a full file system answers is real, what a power cut does is not shown")
	fleet := sim.New(sim.Options{Seed: 5, Inspections: diskReadings, Judge: true})

	lite, err := l.mountSmall("sqlite", 6)
	if err != nil {
		return err
	}
	defer lite.unmount()
	if err := l.fill(t, fleet, filling{name: "the embedded database", db: "file:" + filepath.Join(lite.dir, "full.db"), disk: lite}); err != nil {
		return err
	}

	whole, err := l.mountSmall("disk", 160)
	if err != nil {
		return err
	}
	defer whole.unmount()
	c, err := l.startCluster("disk/postgres")
	if err != nil {
		return err
	}
	defer c.stop()
	t.note("PostgreSQL %s with fsync, full_page_writes and synchronous_commit on", c.version)
	// The tables of one database lie on a small disk of their own; the log has room.
	tables, err := l.mountSmall("tables", 30)
	if err != nil {
		return err
	}
	defer tables.unmount()
	if c.ownerUser != nil {
		if err := os.Chown(tables.dir, int(c.ownerUser.Uid), int(c.ownerUser.Gid)); err != nil {
			return err
		}
	}
	if _, err := c.psql("CREATE TABLESPACE small LOCATION '"+tables.dir+"'", "CREATE DATABASE tables TABLESPACE small"); err != nil {
		return err
	}
	restart := func() (bool, error) {
		if _, err := c.psql("SELECT 1"); err == nil {
			return false, nil
		}
		_, err := c.restart()
		return true, err
	}
	if err := l.fill(t, fleet, filling{
		name: "PostgreSQL's tables", db: strings.Replace(c.url, "/postgres?", "/tables?", 1), disk: tables, restart: restart,
	}); err != nil {
		return err
	}
	if err := l.fill(t, fleet, filling{name: "all of PostgreSQL, its log too", db: c.url, disk: whole, restart: restart}); err != nil {
		return err
	}
	if err := l.fillPhotos(t); err != nil {
		return err
	}
	return l.write("disk", t)
}

// fill sends readings until the disk is full and on, makes room, and looks at
// what is stored.
func (l *lab) fill(t *table, fleet *sim.Fleet, f filling) error {
	secret, err := l.settle(f.db, fleet)
	if err != nil {
		return fmt.Errorf("%s: %w", f.name, err)
	}
	s, err := l.serve("serve", "--db", f.db, "--data", l.path("data-"+strconv.Itoa(len(f.name))))
	if err != nil {
		return err
	}
	defer s.kill()
	c := newClient(s.url, secret, 1)
	defer c.close()
	var acked, refused []*sending
	said := ""
	for r := range fleet.Inspections() {
		one := sendingOf(r)
		if one == nil {
			continue
		}
		status, answer, err := c.put(l.ctx, one.id, one.body)
		switch {
		case err == nil && status == http.StatusCreated:
			one.ack = answer
			acked = append(acked, one)
		case err == nil && status == http.StatusServiceUnavailable:
			if len(refused) == 0 {
				if err := f.disk.stuff(); err != nil {
					return err
				}
			}
			refused = append(refused, one)
			if detail := detailOf(answer); !strings.Contains(said, detail) {
				said = strings.TrimPrefix(said+"; "+detail, "; ")
			}
		default:
			return fmt.Errorf("%s: after %d readings: %w: %s", f.name, len(acked), unexpected(status, answer, err), lastLines(s.log, 3))
		}
		if len(refused) > diskMore {
			break
		}
	}
	if len(refused) == 0 {
		return fmt.Errorf("%s: %d readings didn't fill it", f.name, len(acked))
	}
	ready, err := l.readiness(s)
	if err != nil {
		return err
	}
	if ready == "" {
		return fmt.Errorf("%s: /readyz says ready while it is full, after %d acknowledged and %d refused: %s", f.name, len(acked), len(refused), said)
	}
	if err := f.disk.grow(1024); err != nil {
		return err
	}
	restarted := "no"
	if f.restart != nil {
		again, err := f.restart()
		if err != nil {
			return err
		}
		if again {
			restarted = "yes"
		}
	}
	begin := time.Now()
	ctx, cancel := context.WithTimeout(l.ctx, roomWithin)
	defer cancel()
	if err := poll(ctx, func() bool { return s.isReady(ctx) }); err != nil {
		ready, _ := l.readiness(s)
		return fmt.Errorf("%s: not ready %s after there is room: %s", f.name, roomWithin, ready)
	}
	took := time.Since(begin)
	for _, one := range acked {
		status, stored, err := c.get(l.ctx, one.id)
		if err != nil || status != http.StatusOK {
			return fmt.Errorf("%s: %s was acknowledged and is lost: %w", f.name, one.id, unexpected(status, stored, err))
		}
		if err := errors.Join(one.whole(stored), one.acknowledged(stored)); err != nil {
			return err
		}
	}
	for _, one := range refused {
		// 200 is a reading whose commit was on the disk when the answer failed.
		status, answer, err := c.put(l.ctx, one.id, one.body)
		if err != nil || status != http.StatusCreated && status != http.StatusOK {
			return fmt.Errorf("%s: %s sent again: %w", f.name, one.id, unexpected(status, answer, err))
		}
	}
	if _, _, err := l.solewright(nil, "verify", "--db", f.db); err != nil {
		return err
	}
	t.row(f.name, len(acked), len(acked), len(refused), said, ready, restarted, seconds(took), len(refused), "yes")
	return nil
}

// lastLines returns the end of a file.
func lastLines(path string, n int) string {
	text, _ := os.ReadFile(path)
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], "\n")
}

// detailOf returns what a problem says.
func detailOf(answer []byte) string {
	var p struct{ Title, Detail string }
	if json.Unmarshal(answer, &p) != nil || p.Title == "" {
		return string(answer)
	}
	return p.Title + ": " + p.Detail
}

// readiness returns what /readyz finds wrong, nothing where it is ready.
func (l *lab) readiness(s *server) (string, error) {
	req, err := http.NewRequestWithContext(l.ctx, http.MethodGet, s.url+"/readyz", nil)
	if err != nil {
		return "", err
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return "", err
	}
	defer resp.Body.Close()
	var r struct{ Checks map[string]string }
	if err := json.NewDecoder(resp.Body).Decode(&r); err != nil {
		return "", err
	}
	if resp.StatusCode == http.StatusOK {
		return "", nil
	}
	var wrong []string
	for _, name := range []string{"database", "schema", "writes", "fleet"} {
		if r.Checks[name] != "ok" {
			wrong = append(wrong, name+": "+r.Checks[name])
		}
	}
	return strings.Join(wrong, "; "), nil
}

// fillPhotos sends photos until their disk is full, makes room, and looks at
// what is kept.
func (l *lab) fillPhotos(t *table) error {
	disk, err := l.mountSmall("photos", 1)
	if err != nil {
		return err
	}
	defer disk.unmount()
	fleet := sim.New(sim.Options{Seed: 6, Inspections: 10, Judge: true})
	db := "file:" + l.path("photos.db")
	secret, err := l.settle(db, fleet)
	if err != nil {
		return err
	}
	s, err := l.serve("serve", "--db", db, "--data", l.path("photos-data"), "--photos", "file:"+disk.dir)
	if err != nil {
		return err
	}
	defer s.kill()
	c := newClient(s.url, secret, 1)
	defer c.close()
	query := ""
	for r := range fleet.Inspections() {
		one := sendingOf(r)
		if one == nil {
			continue
		}
		if status, answer, err := c.put(l.ctx, one.id, one.body); err != nil || status != http.StatusCreated {
			return unexpected(status, answer, err)
		}
		query = "?inspection=" + one.id + "&store=" + r.Store + "&shoe=left&view=back"
		break
	}
	send := func(data []byte) (int, []byte, error) {
		sum := sha256.Sum256(data)
		return c.ask(l.ctx, http.MethodPut, "/photos/"+hex.EncodeToString(sum[:])+query, "image/jpeg", data)
	}
	var kept, refused [][]byte
	said := ""
	for n := uint64(0); len(refused) < 3 && n < 100; n++ {
		data, err := noise(n)
		if err != nil {
			return err
		}
		status, answer, err := send(data)
		switch {
		case err == nil && status == http.StatusCreated:
			kept = append(kept, data)
		case err == nil && status == http.StatusServiceUnavailable:
			refused, said = append(refused, data), detailOf(answer)
		default:
			return fmt.Errorf("photo %d: %w", n, unexpected(status, answer, err))
		}
	}
	files, err := filepath.Glob(filepath.Join(disk.dir, "*", "*"))
	if err != nil {
		return err
	}
	halves, err := filepath.Glob(filepath.Join(disk.dir, "*", ".part-*"))
	if err != nil {
		return err
	}
	if len(refused) == 0 || len(halves) > 0 || len(files) != len(kept) {
		return fmt.Errorf("photos: %d refused, %d files and %d halves of %d kept", len(refused), len(files), len(halves), len(kept))
	}
	if err := disk.grow(64); err != nil {
		return err
	}
	for _, data := range kept {
		sum := sha256.Sum256(data)
		if status, answer, err := c.ask(l.ctx, http.MethodGet, "/photos/"+hex.EncodeToString(sum[:]), "", nil); err != nil || status != http.StatusOK {
			return fmt.Errorf("a photo that was acknowledged: %w", unexpected(status, answer, err))
		}
	}
	for _, data := range refused {
		if status, answer, err := send(data); err != nil || status != http.StatusCreated {
			return fmt.Errorf("a photo sent again: %w", unexpected(status, answer, err))
		}
	}
	if _, _, err := l.solewright(nil, "verify", "--db", db, "--photos", "file:"+disk.dir); err != nil {
		return err
	}
	t.row("the photos", len(kept), len(kept), len(refused), said, "ready: readings are stored", "no", seconds(0), len(refused), "yes")
	return nil
}

// noise draws a picture that takes some 200 KiB, another for each seed.
func noise(seed uint64) ([]byte, error) {
	img := image.NewGray(image.Rect(0, 0, 640, 480))
	draw := rand.New(rand.NewPCG(seed, 1))
	for i := range img.Pix {
		img.Pix[i] = byte(draw.Uint32())
	}
	var b bytes.Buffer
	err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 90})
	return b.Bytes(), err
}
