# Statistics of ISO 5725-2 for the data set Dyestuff of R's package lme4 (O. L. Davies
# (ed.), Statistical Methods in Research and Production, 1947), in base R: yields of
# five preparations of each of six batches. Run: Rscript laboratories.R
y <- matrix(c(1545,1440,1440,1520,1580, 1540,1555,1490,1560,1495, 1595,1550,1605,1510,1560,
              1445,1440,1595,1465,1545, 1595,1630,1515,1635,1625, 1520,1455,1450,1480,1445), nrow = 6, byrow = TRUE)
batch <- factor(rep(LETTERS[1:6], each = 5))
a <- anova(lm(as.vector(t(y)) ~ batch))[["Mean Sq"]]
m <- rowMeans(y); v <- apply(y, 1, var)
out <- function(...) cat(sprintf("%.10g", c(...)), sep = ", ", fill = TRUE)
out(mean(m), sqrt(a[2]), sqrt((a[1] - a[2]) / 5), sqrt(a[2] + (a[1] - a[2]) / 5))
out((m - mean(m)) / sd(m))
out(sqrt(v / mean(v)))
out(max(v) / sum(v))
o <- sort(m)
ss <- function(x) sum((x - mean(x))^2)
out(ss(o[1:4]) / ss(o), ss(o[3:6]) / ss(o))
