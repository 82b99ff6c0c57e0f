package screen

import (
	"io"
	"time"

	tea "charm.land/bubbletea/v2"

	"proofpot/cmd/proofpot/page"
)

// Show shows a run on a terminal until the function that it returns is called,
// which gives the terminal back. Keys become commands on the console.
func Show(on *page.Console, in io.Reader, out io.Writer) (stop func()) {
	program := tea.NewProgram(&model{on: on}, tea.WithInput(in), tea.WithOutput(out), tea.WithFPS(10), tea.WithoutSignalHandler())
	done, ended := make(chan struct{}), make(chan struct{})
	go on.Follow(done, func(news any) { program.Send(news) })
	go func() {
		defer close(ended)
		_, _ = program.Run() // a terminal that is gone ends the view, not the run
	}()
	return func() {
		close(done)
		program.Quit()
		<-ended
	}
}

type model struct {
	on            *page.Console
	state         State
	came          time.Time
	width, height int
}

type tick time.Time

func again() tea.Cmd {
	return tea.Tick(500*time.Millisecond, func(t time.Time) tea.Msg { return tick(t) })
}

// Init implements tea.Model.
func (m *model) Init() tea.Cmd { return again() }

// Update implements tea.Model.
func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.width, m.height = msg.Width, msg.Height
	case *page.Ladder:
		m.state.Ladder = msg
	case *page.Now:
		m.state.Now, m.came = msg, time.Now()
	case []page.Event:
		m.state.Events = msg
	case tick:
		return m, again()
	case tea.KeyPressMsg:
		m.key(msg)
	}
	return m, nil
}

// key carries out what a key asks for.
func (m *model) key(k tea.KeyPressMsg) {
	m.state.Said = ""
	name := k.String()
	if name == "ctrl+c" {
		m.on.Abort()
		return
	}
	if t := m.state.Typing; t != nil {
		switch name {
		case "enter":
			if *t != "" {
				if err := m.on.Note(*t); err != nil {
					m.state.Said = err.Error()
				}
			}
			m.state.Typing = nil
		case "esc":
			m.state.Typing = nil
		case "backspace":
			if r := []rune(*t); len(r) > 0 {
				*t = string(r[:len(r)-1])
			}
		default:
			if len(*t) < 300 {
				*t += k.Text
			}
		}
		return
	}
	switch name {
	case "a":
		m.on.Abort()
		m.state.Said = "stopping: the fill is shut and the vent opened"
	case "p":
		if m.state.Now != nil && m.state.Now.Paused {
			m.on.Resume()
		} else {
			m.on.Pause()
		}
	case "s":
		m.on.Skip()
	case "n":
		empty := ""
		m.state.Typing = &empty
	case "enter":
		m.on.Ready()
	}
}

// View implements tea.Model.
func (m *model) View() tea.View {
	s := m.state
	if !m.came.IsZero() {
		s.Age = time.Since(m.came)
	}
	v := tea.NewView(Frame(&s, m.width, m.height))
	v.AltScreen = true
	v.WindowTitle = "proofpot"
	return v
}
