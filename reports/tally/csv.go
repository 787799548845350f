package tally

import (
	"bytes"
	"errors"
	"fmt"
	"io"
)

const (
	// blockSize is how much of a file is parsed at a time: small enough for a
	// core's own cache, large enough that handing it over costs nothing.
	blockSize = 1 << 18
	// longestRecord bounds what one quote left open can pull into memory.
	longestRecord = 1 << 24
)

// block is a part of a file that begins where a record begins.
type block struct {
	bytes []byte
	line  int // of the file, on which it begins
	// cut says that the last record is too long to be read whole.
	cut bool
}

// cutter cuts a stream into blocks that end where a record ends.
//
// A line feed ends a record unless an odd number of quotes stands before it. A
// quote where RFC 4180 allows none breaks that count, but only behind itself:
// the parser meets that quote, and refuses it, first.
type cutter struct {
	from io.Reader
	rest []byte // read behind the last block
	line int
	end  error // why from gives no more
}

// next fills buf with the next block. io.EOF: there is none.
func (c *cutter) next(buf []byte) (block, error) {
	buf = append(buf[:0], c.rest...)
	c.rest = c.rest[:0]
	for want := blockSize; ; want += blockSize {
		for len(buf) < want && c.end == nil {
			if cap(buf) < want {
				buf = append(make([]byte, 0, want), buf...)
			}
			var n int
			n, c.end = c.from.Read(buf[len(buf):want])
			buf = buf[:len(buf)+n]
		}
		if c.end != nil && !errors.Is(c.end, io.EOF) {
			return block{}, c.end
		}
		if len(buf) == 0 {
			return block{}, io.EOF
		}
		b := block{bytes: buf, line: c.line}
		if c.end == nil {
			whole := lastRecordEnd(buf)
			b.cut = whole == 0 && len(buf) >= longestRecord
			if whole == 0 && !b.cut {
				continue
			}
			if whole > 0 {
				b.bytes = buf[:whole]
				c.rest = append(c.rest, buf[whole:]...)
			}
		}
		c.line += bytes.Count(b.bytes, []byte{'\n'})
		return b, nil
	}
}

// lastRecordEnd returns where the last whole record of b ends, 0 for nowhere.
func lastRecordEnd(b []byte) int {
	quotes := bytes.Count(b, []byte{'"'})
	for end := len(b); ; {
		i := bytes.LastIndexByte(b[:end], '\n')
		if i < 0 {
			return 0
		}
		if quotes -= bytes.Count(b[i:end], []byte{'"'}); quotes%2 == 0 {
			return i + 1
		}
		end = i
	}
}

// parser reads the records of a block by RFC 4180. Lines end with LF or CRLF;
// empty ones are skipped, except in a file of one column, where each is an
// empty cell.
type parser struct {
	block
	oneColumn bool

	at    int // where the next record begins
	after int // its line
	start int // where this record begins
	// cells of this record point into the block, or into unquoted where a
	// doubled quote had to be undone; begins says where each begins.
	cells    [][]byte
	begins   []int
	unquoted []byte
}

func (p *parser) reset(b block, oneColumn bool) {
	p.block, p.oneColumn = b, oneColumn
	p.at, p.after = 0, b.line
}

// next reads one record; false behind the last.
func (p *parser) next() (bool, error) {
	b, i := p.bytes, p.at
	p.line = p.after
	for !p.oneColumn && i < len(b) { // skip empty lines
		end := i
		if b[i] == '\r' {
			end++
		}
		if end < len(b) && b[end] != '\n' {
			break
		}
		i = min(end+1, len(b))
		p.line++
	}
	if i == len(b) {
		return false, nil
	}
	p.cells, p.begins, p.unquoted, p.start = p.cells[:0], p.begins[:0], p.unquoted[:0], i
	p.after = p.line
	for {
		begin := i
		p.begins = append(p.begins, begin)
		var cell []byte
		if i < len(b) && b[i] == '"' {
			var err error
			if cell, i, err = p.quoted(begin); err != nil {
				return false, err
			}
		} else {
			for i < len(b) && !special[b[i]] {
				i++
			}
			cell = b[begin:i]
			if i < len(b) && b[i] == '"' {
				return false, p.fault(i, `a quote inside a cell that does not begin with one`)
			}
			if len(cell) > 0 && cell[len(cell)-1] == '\r' && (i == len(b) || b[i] == '\n') {
				cell = cell[:len(cell)-1]
			}
		}
		p.cells = append(p.cells, cell)
		if i < len(b) && b[i] == ',' {
			i++
			continue
		}
		if i < len(b) { // the line feed
			i++
			p.after++
		}
		if p.cut && i == len(b) {
			return false, p.fault(p.start, "a record longer than %d MiB", longestRecord>>20)
		}
		p.at = i
		return true, nil
	}
}

// special are the bytes that end a cell, or may not stand in it.
var special = [256]bool{',': true, '\n': true, '"': true}

// quoted reads the quoted cell that begins at begin and returns what ends it.
func (p *parser) quoted(begin int) (cell []byte, end int, err error) {
	b, from, part := p.bytes, len(p.unquoted), begin+1
	for i := part; ; {
		q := bytes.IndexByte(b[i:], '"')
		if q < 0 {
			return nil, 0, p.fault(begin, "the quote opened here is never closed")
		}
		q += i
		if q+1 < len(b) && b[q+1] == '"' {
			p.unquoted = append(p.unquoted, b[part:q+1]...)
			i, part = q+2, q+2
			continue
		}
		if cell = b[part:q]; part > begin+1 { // a doubled quote was undone
			p.unquoted = append(p.unquoted, cell...)
			cell = p.unquoted[from:len(p.unquoted):len(p.unquoted)]
		}
		end = q + 1
		break
	}
	p.after += bytes.Count(b[begin:end], []byte{'\n'})
	if end+1 < len(b) && b[end] == '\r' && b[end+1] == '\n' || end+1 == len(b) && b[end] == '\r' {
		end++
	}
	if end < len(b) && b[end] != ',' && b[end] != '\n' {
		return nil, 0, p.fault(end, "text after the closing quote of a cell")
	}
	return cell, end, nil
}

// fault names the place of the byte at i of the record being read.
func (p *parser) fault(i int, format string, args ...any) error {
	line := p.line + bytes.Count(p.bytes[p.start:i], []byte{'\n'})
	column := i - bytes.LastIndexByte(p.bytes[:i], '\n')
	return &fault{line, fmt.Sprintf("line %d, column %d: %s", line, column, fmt.Sprintf(format, args...))}
}

// lineOf returns the line on which cell i of the record begins.
func (p *parser) lineOf(i int) int {
	return p.line + bytes.Count(p.bytes[p.start:p.begins[i]], []byte{'\n'})
}

// fault is what is wrong with a file, and on which line.
type fault struct {
	line int
	text string
}

func (f *fault) Error() string { return f.text }
