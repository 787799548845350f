package main

import (
	"fmt"
	"time"

	"solewright/models"
)

type deviceCmd struct {
	Add    deviceAddCmd    `cmd:"" help:"Set up a store tablet; prints the code to type on it within the hour."`
	Revoke deviceRevokeCmd `cmd:"" help:"End a tablet: nobody signs in on it any more."`
	List   deviceListCmd   `cmd:"" help:"List tablets."`
}

type deviceAddCmd struct {
	database
	Code  string `arg:"" help:"The tablet's code; for one that is set up, a new enrolment code is made."`
	Store string `required:"" placeholder:"CODE" help:"The store it belongs to."`
}

func (d *deviceAddCmd) Run(a *app) error {
	return d.use(a, func(db *models.DB) error {
		enrolment, err := db.AddDevice(a.ctx, operator, d.Code, d.Store)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(a.stdout, enrolment)
		return err
	})
}

type deviceRevokeCmd struct {
	database
	Code string `arg:"" help:"The tablet's code."`
}

func (d *deviceRevokeCmd) Run(a *app) error {
	return d.use(a, func(db *models.DB) error { return db.RevokeDevice(a.ctx, operator, d.Code) })
}

type deviceListCmd struct {
	database
	listing
	Store string `placeholder:"CODE" help:"Of one store only."`
}

func (d *deviceListCmd) Run(a *app) error {
	return d.use(a, func(db *models.DB) error {
		all, err := db.Devices(a.ctx, d.Store)
		if err != nil {
			return err
		}
		for _, device := range all {
			if err := d.line(a, field{"code", device.Code}, field{"store", device.Store}, field{"state", deviceState(&device)}); err != nil {
				return err
			}
		}
		return nil
	})
}

// deviceState says in words how far a tablet is.
func deviceState(d *models.Device) string {
	switch {
	case !d.RevokedAt.IsZero():
		return "revoked " + d.RevokedAt.Format(time.DateOnly)
	case d.EnrolledAt.IsZero():
		return "waits for its enrolment code"
	}
	return "enrolled " + d.EnrolledAt.Format(time.DateOnly)
}
