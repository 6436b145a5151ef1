package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"coldweek/dashboards/login"
)

func newUser(a *app) *cobra.Command {
	c := group(&cobra.Command{
		Use:   "user",
		Short: "Say who may log in to the pages",
		Long: `Add, list and remove who may log in to the pages, and change passwords. They
stand in users.yaml of the home, with hashes of their passwords; a running
coldweek follows at once. Engineers may look and change, viewers may look.

Without users the pages are open to who sits at this machine, and are not served
beyond it.`,
		Example: "  coldweek user add ada --role engineer\n  coldweek user list",
	})
	c.AddCommand(newUserAdd(a), newUserList(a), newUserPassword(a), newUserRemove(a))
	return c
}

// passwordHelp ends the help of commands that take a password.
const passwordHelp = `
The password is asked for, or read from the first line of a file or of standard
input; it never stands on the command line. It has at least 12 characters.`

func newUserAdd(a *app) *cobra.Command {
	var role, email, passwordFile string
	c := &cobra.Command{
		Use:   "add NAME",
		Short: "Let somebody log in",
		Long:  "Let somebody log in to the pages.\n" + passwordHelp,
		Example: `  coldweek user add ada --role engineer --email ada@firm.example
  coldweek user add office --role viewer --password-file office.password`,
		Args: args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, given []string) error {
			if role == "" {
				return usagef("--role is missing; write --role engineer (may look and change) or --role viewer (may look)")
			}
			user := login.User{Name: given[0], Role: login.Role(role), EMail: email}
			return a.withPassword(passwordFile, func(users *login.Users, password string) error {
				if err := users.Add(user, password); err != nil {
					return usageError{err}
				}
				fmt.Fprintf(a.out, "%s may log in as %s\n", user.Name, user.Role)
				return nil
			})
		},
	}
	c.Flags().StringVar(&role, "role", "", "engineer (may look and change) or viewer (may look)")
	c.Flags().StringVar(&email, "email", "", "where the user is reached; kept, not used")
	c.Flags().StringVar(&passwordFile, "password-file", "", "file whose first line is the password")
	return c
}

func newUserPassword(a *app) *cobra.Command {
	var passwordFile string
	c := &cobra.Command{
		Use:     "password NAME",
		Short:   "Change a password, which logs the user out everywhere",
		Long:    "Change a user's password. Whoever is logged in as that user is logged out.\n" + passwordHelp,
		Example: "  coldweek user password ada",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, given []string) error {
			return a.withPassword(passwordFile, func(users *login.Users, password string) error {
				if err := users.SetPassword(given[0], password); err != nil {
					return usageError{err}
				}
				fmt.Fprintf(a.out, "%s has a new password\n", given[0])
				return nil
			})
		},
	}
	c.Flags().StringVar(&passwordFile, "password-file", "", "file whose first line is the password")
	return c
}

// userJSON is a user without the hash.
type userJSON struct {
	Name  string     `json:"name"`
	Role  login.Role `json:"role"`
	EMail string     `json:"email,omitempty"`
}

func newUserList(a *app) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:     "list",
		Short:   "Show who may log in",
		Example: "  coldweek user list --json",
		Args:    args(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			h, err := a.openHome()
			if err != nil {
				return err
			}
			users, err := login.NewUsers(h.usersPath()).List()
			if err != nil {
				return usageError{err}
			}
			if asJSON {
				list := []userJSON{}
				for _, u := range users {
					list = append(list, userJSON{u.Name, u.Role, u.EMail})
				}
				return writeJSON(a.out, list)
			}
			return a.writeUsers(users)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON for other programs")
	return c
}

func (a *app) writeUsers(users []login.User) error {
	if len(users) == 0 {
		fmt.Fprintln(a.out, "there are no users: the pages are open to who sits at this machine")
		return nil
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "name\trole\te-mail")
	for _, u := range users {
		fmt.Fprintf(w, "%s\t%s\t%s\n", u.Name, u.Role, u.EMail)
	}
	return w.Flush()
}

func newUserRemove(a *app) *cobra.Command {
	return &cobra.Command{
		Use:     "remove NAME",
		Short:   "Let somebody log in no more, and log them out",
		Example: "  coldweek user remove ada",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, given []string) error {
			h, err := a.openHome()
			if err != nil {
				return err
			}
			left, err := login.NewUsers(h.usersPath()).Remove(given[0])
			if err != nil {
				return usageError{err}
			}
			fmt.Fprintf(a.out, "%s may log in no more\n", given[0])
			if left == 0 {
				fmt.Fprintln(a.out, "no users are left: nobody can log in, and from its next start coldweek serves its pages to this machine only, without asking")
			}
			return nil
		},
	}
}

// withPassword reads a password and does the work on the home's users.
func (a *app) withPassword(file string, work func(users *login.Users, password string) error) error {
	h, err := a.openHome()
	if err != nil {
		return err
	}
	password, err := a.readPassword(file)
	if err != nil {
		return err
	}
	return work(login.NewUsers(h.usersPath()), password)
}

// readPassword reads a password from a file, a person or standard input.
func (a *app) readPassword(path string) (string, error) {
	if path != "" {
		file, err := os.Open(path)
		if err != nil {
			return "", usagef("--password-file: %w", err)
		}
		defer func() { _ = file.Close() }()
		return firstLine(file, "--password-file "+path)
	}
	if terminal, ok := a.in.(*os.File); ok && term.IsTerminal(int(terminal.Fd())) {
		return a.askPassword(terminal)
	}
	return firstLine(a.in, "standard input")
}

// askPassword asks twice, without showing what is typed.
func (a *app) askPassword(terminal *os.File) (string, error) {
	var typed [2]string
	for i, prompt := range []string{"Password: ", "Once more: "} {
		fmt.Fprint(a.err, prompt)
		text, err := term.ReadPassword(int(terminal.Fd()))
		fmt.Fprintln(a.err)
		if err != nil {
			return "", fmt.Errorf("read password: %w", err)
		}
		typed[i] = string(text)
	}
	if typed[0] != typed[1] {
		return "", usagef("the two passwords differ; nothing was changed")
	}
	return typed[0], nil
}

// firstLine reads a line without its end.
func firstLine(in io.Reader, what string) (string, error) {
	line, err := bufio.NewReader(io.LimitReader(in, 64<<10)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("read password: %w", err)
	}
	line = strings.TrimRight(line, "\r\n")
	if line == "" {
		return "", usagef("%s: the first line is empty; it must be the password", what)
	}
	return line, nil
}
