package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"time"
)

// client talks to the API as a counter's program does.
type client struct {
	http   *http.Client
	url    string
	secret string
}

// answerWithin is how long a request may take.
const answerWithin = 30 * time.Second

func newClient(url, secret string, connections int) *client {
	return &client{
		http: &http.Client{
			Timeout:   answerWithin,
			Transport: &http.Transport{MaxIdleConnsPerHost: connections},
		},
		url: url, secret: secret,
	}
}

func (c *client) close() { c.http.CloseIdleConnections() }

// put stores a reading and returns what the server acknowledged.
func (c *client) put(ctx context.Context, id string, body []byte) (int, []byte, error) {
	return c.ask(ctx, http.MethodPut, "/inspections/"+id, "application/json", body)
}

// get returns a stored reading.
func (c *client) get(ctx context.Context, id string) (int, []byte, error) {
	return c.ask(ctx, http.MethodGet, "/inspections/"+id, "", nil)
}

// ask sends a body of a kind, or nothing, to a path of the API.
func (c *client) ask(ctx context.Context, method, path, kind string, body []byte) (int, []byte, error) {
	req, err := http.NewRequestWithContext(ctx, method, c.url+"/api/v1"+path, bytes.NewReader(body))
	if err != nil {
		return 0, nil, err
	}
	req.Header.Set("Authorization", "Bearer "+c.secret)
	if body != nil {
		req.Header.Set("Content-Type", kind)
	}
	resp, err := c.http.Do(req)
	if err != nil {
		return 0, nil, err
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		return 0, nil, fmt.Errorf("the answer was cut: %w", err)
	}
	return resp.StatusCode, text, nil
}

// unexpected is the error of an answer that should have been another.
func unexpected(status int, answer []byte, err error) error {
	if err != nil {
		return err
	}
	return fmt.Errorf("answered %d %s", status, bytes.TrimSpace(answer))
}
