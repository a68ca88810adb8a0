module fairpull

go 1.26
